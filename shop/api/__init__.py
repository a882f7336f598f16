"""The common ground of the REST API: problems, authentication, bodies, keyset pages, ETags, idempotency, schema.

Rooms write `api.py` with the decorators of `kit`; no rule lives here.
"""
