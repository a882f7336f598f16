"""Everything the shop hands over as a file: documents typeset as PDF, photos and other attachments kept."""
