"""The survey of one animal and its report: pure decisions over frozen values."""
