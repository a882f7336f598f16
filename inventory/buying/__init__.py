"""Where parts come from: suppliers (orders and receipts build on it)."""
