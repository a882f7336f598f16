"""Priced proposals, their revisions, and the customer's go-ahead line by line."""
