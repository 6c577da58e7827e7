"""One file a step, ``NNNN_what.py``, with revision ``NNNN``."""
