"""The sync mark: a lamp and a tone that the stand switches on together, and logs."""

TONE_HZ = 2_000.0
"""Pitch of the tone. [Hz]"""
MARK_S = 0.4
"""How long lamp and tone last. [s]"""
