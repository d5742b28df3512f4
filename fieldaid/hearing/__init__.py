"""Sound to words: files (`sound`), the voice gate (`gate`), recognisers and what they hand on (`heard`, `sphinx`)."""
