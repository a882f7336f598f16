"""Job cards: stages, gates, holds, notes; what a card is and what it waits for."""
