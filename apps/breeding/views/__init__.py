"""Pages of the season: board, a female, scan rounds, visits."""
