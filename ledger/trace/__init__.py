"""The lot audit: paths through lots, recall arithmetic, mass balance, labels, interchange and proofs for a stranger.

Everything here is pure (rows in, answers out) except ``queries``, which reads the ledger.
"""
