"""The independent simulator of plucked spokes and whole rounds: numpy and scipy only, nothing of the solver."""
