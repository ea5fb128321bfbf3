"""Plays one exam through the whole service, with invented animals, and tells what happens."""
