"""From the furnace to the pallet: what every meter read, what balances, what was lost where.

**Running totals** (`measures/yields/counters.py`) become increments only where two reads determine them: a fall near
the modulus is a rollover unless a job changed meanwhile, any other fall a reset with a least and a most. A station that
sends totals and no windows stands in the yield by them, with a note on every stretch left open; Paretos and signals
need windows and pass it over.

**The balance.** `measures/yields/line_flows.py` turns a line's frames into readings (`network.LineReading`), each with
its uncertainty: the works' `[uncertainty]`, and what the day's limits add (lehr time at both ends, pallets cut through
or still open). `network.py` lays out one network a furnace; glass cut is gobs x mass, made linear about the last
round's values. `reconcile.py` solves it: losses are unmeasured flows of at least zero, each with a row that says what
is expected of it. `usual_losses.py` gives that expectation: the raw openings of the last 182 closed days, robustly,
against an exponential guess; the losses of a line are known better in sum than singly, so their covariance is that of
parts given their sum. Where days agree far better than the meters are said to, the rest of the stated uncertainty
counts as lasting. Nothing is taken out of the balances, so that nothing becomes unmeasured.

**Who lies.** `openings.py`: what each day's balances leave open, and how each meter, loss and lane could have opened
it; meters that said nothing are projected out. `joint_days.py`: thirty days of openings (older ones as one) as one
normal distribution, an error that stays and one that moves for each cause. `explanations.py`: every cause off since
every day, in a few sizes, one-sided for losses, singly and in pairs, weighed by prior and Bayes factor; the answer is
the mixture. Above 0.5 a meter is named, above 0.1 an explanation is told. `balance.py` closes the mean of the mixture
and gives figures their quantiles; a figure that explanations make two numbers is a range. `overpacked.py` names pallets
above what passed before all that. `table_wait.py` counts ware that waits for its pallets at a day's edge to the day on
which it was inspected, by a count of stock over eight hours; a spread alone would widen every interval. `misfit.py`
refuses the day where even the best of them fits once in a million days: balances that are off with figures, a range
over what the meters say, nobody named. Tried and rejected: naming the worst and working it out from the rest (split two
unknown flows); Student's t (accused honest meters); a lasting error of half the stated variance (intervals half as wide
again on honest days); a prior of 0.005 for a lie (a weight 2 % off stayed outside the interval in 20 to 40 % of days).

**Losses by cause** (`measures/yields/losses.py`) are counted by part of the day, cut at shifts, job starts and
start-ups, from the same frames; all of them and what was packed good add up to what the machine could have made.
Unaccounted losses of a part are the day's, shared out by gobs.
"""
