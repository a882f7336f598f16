"""The owner's pages about the shop itself; everybody may read them."""
