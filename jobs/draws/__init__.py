"""Parts on a card: needed, reserved, drawn, fitted, returned. The bridge to stock."""
