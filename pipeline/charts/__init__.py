"""Figures as SVG, drawn once at build; the only room with matplotlib."""
