"""What lies where: bins, lots, the append-only ledger of movements, balances, reservations."""
