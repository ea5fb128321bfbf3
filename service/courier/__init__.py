"""Carries finished posts to the record systems they were promised to."""
