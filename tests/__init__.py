"""What the tests share, and how they run.

A run of the tests makes each site and simulates each day once, for all its workers (`tests/shared.py`, fixtures in
`tests/conftest.py`):

- `day_taken`: a simulated day taken in, to be read; `taken()`: a copy of it to write to; `place`: an empty site,
  `place.put(...)`, `place.take()`.
- `new_site(name, make)`: a copy of the site that `make(place)` makes. One name, one site: use it where two tests or two
  modules need the same one.
- `shared.simulated(plan)` instead of `simulate(plan)`; `shared.made(name, make)` for whatever else takes more than a
  second: what `make(path)` left and gave back.

A copy costs 0.03 s, a day taken in 3 s, a day followed by the signals 11 s. What a test waits for is a state and no
time; a limit is there to end a test that hangs. A worker takes whole modules, those of `LONGEST` first; `QUICK` says
what `-m quick` runs (`tests/conftest.py`). Kills are counted by steps (`tests/intake/killed.py`), so that they fall
alike on every computer. `.ci/run` runs types and browser tests beside the tests.
"""
