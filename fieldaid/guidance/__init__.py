"""Rule packs through two independent channels: hazards, access, gate, placement and advice, each with its why.

`pack` loads and checks a rule pack. `reference` evaluates it with closures of our own; `engine` runs it with
durable-rules in a child process that can die without harm. The two share the parsed pack, the vocabulary and the shape
of an `Outcome`, and no evaluation code. `guide` runs both, compares and merges. `why` answers why and why not.

Nothing is imported here: the child process starts with what it needs and no more.
"""
