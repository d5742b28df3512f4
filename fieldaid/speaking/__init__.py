"""Words to sound: what the voice says, a killable speech worker, a tone, a player, and the queue before them.

`spoken` and `figures` are plain text work; `voice` and `worker` make samples; `tone` and `player` make them
heard; `recording` keeps them; `speaker.Speaker` is what the rest of fieldaid uses. Nothing is imported here,
so that text work stays cheap.
"""
