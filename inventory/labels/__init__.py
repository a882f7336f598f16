"""Labels for bins, parts and lots: what is picked, on which paper, as a PDF to print."""
