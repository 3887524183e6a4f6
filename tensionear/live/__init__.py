"""A round as it is plucked: heard at once, named by a state machine, kept, and read. Imports all below the dashboard."""
