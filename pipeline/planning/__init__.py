"""Which tools to release in which quarter with this cash, and how parts flow to their gates. Pure."""
