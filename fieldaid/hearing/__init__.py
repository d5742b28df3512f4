"""Sound to words: files and the microphone, the voice gate, and recognisers, each of which hands on a `Heard`.

DEVELOPERS.md lists the modules by their jobs.
"""
