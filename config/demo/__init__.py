"""The invented demonstration facility: a seeded generator of CSV files, and the loader that replays them."""
