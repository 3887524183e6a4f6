"""Broken inputs for everything that reads: good ones, ways to break them, and what counts as taking it well."""
