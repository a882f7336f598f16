"""The ground under every room: errors, clock, writing, triggers, money, quantities, units. No tables, no HTTP."""
