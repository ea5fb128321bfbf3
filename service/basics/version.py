"""Which Sonoledger this is."""

VERSION = "0.1.0"
