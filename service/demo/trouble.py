"""Why the story cannot go on, in one line for a person."""


class Trouble(Exception):
    """Something the demo needs did not happen; its text is one clear line."""
