"""The charge and its invoice: pure decisions over frozen values."""
