"""One sample of every shape of every event ever released, kept for ever: ``events/<name>.v<n>.json``, canonical
payloads.
"""
