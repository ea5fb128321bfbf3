"""The chapters of the demo's story, a file each."""
