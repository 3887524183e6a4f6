"""Rounds kept: the log, what changed between rounds, the wheel's card. Its modules are imported one by one.

The log is one SQLite file, with the sounds in a folder beside it (``rounds.sqlite``, ``rounds.sounds/``). A finished recording
is kept in one step, ``Log.save``. A round that grows while it is plucked is kept pluck by pluck::

    log = Log()                                    # the user's log; Log(path) is another
    kept = log.open_round(Asked(wheel_text=text), "Mill Lane tricycle, rear")
    number = kept.append(pluck_reading, recording) # on the disk when it returns, sound first, then the row
    kept.take_back(number)                         # the pluck was none; its number is not given again
    kept.finish(reading)                           # the round is now like one that was saved

    for row in log.unfinished():                   # after a crash
        kept = log.resume(row.id)
        kept.plucks                                # all that append had returned from, in order

The contract:

- When ``append``, ``finish`` or ``save`` returns, the round outlives a crash of the program or of the machine. If one of
  them raises `LogError`, nothing of that call is in the log, and the call may be made again.
- Numbers of plucks count from 1 and only grow.
- A `Log` and an `OpenRound` hold no connection between calls: any thread or process may use them, several at once. A writer
  that another one holds up waits, for 30 s at most, then raises `LogError`.
- An unfinished round has no reading; it is listed as unfinished, and never dropped by itself.
- The sound handed to ``append`` is kept as 24-bit FLAC (as float WAV if it goes beyond full scale), so it may be trimmed to
  the pluck. ``finish(reading, sound)`` takes the whole round's sound as well, if there is one.
"""
