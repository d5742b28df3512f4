"""The author's bench: checks, tests and explains rule packs for the people who write them."""
