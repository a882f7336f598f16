"""Who did what when; side effects waiting to happen (outbox); answers kept for repeated requests (idempotency)."""
