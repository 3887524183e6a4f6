"""Readings put together from what was heard: one module a kind of job. Imports listening, physics, wheel, reading."""
