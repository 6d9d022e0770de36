"""The way through the lehr.

**Lehr time.** `measures/lehr/lehr_time.py` fits, hour by hour, what left the machine (forming counts less hot rejects,
cavity by cavity, or the stoppage log where none came) to what the first station that reads moulds saw, over all shifts
at once; a hidden Markov model joins the hours. Kept as `lehr_hours`; every answer takes it from `answers/lehr.py`, the
nominal value where the feeds show nothing.
"""
