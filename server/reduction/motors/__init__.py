"""Motors as physics: families, their fit to load points, and what follows from it."""
