"""The live round on a terminal: as a screen, and as plain lines with the same words."""
