"""Staff pages of parts on a card, by subject."""
