"""Hard use: kills, failing system calls, changed bytes, random intents, clock steps, foreign files.

``python -m tests.hard_use --minutes N`` runs every part and prints how many cases were tried and how many held.
"""
