"""Tying the numbers to known force: known tensions, hanging masses, weighed spokes, and the records of them.

``tying`` and ``hanging`` and ``weighing`` compute, ``slips`` asks, ``records`` is the TOML form, ``store`` the only one that
opens files, ``use`` gives a wheel what the records say of its build.
"""
