"""From what is in hand to cavities and pallets; and how far the stations' word can be taken.

**A trace** is one matrix. `answers/trace/line_ware.py` puts a line's ware, calls, lehr times and pallets on bins of the
first station's clock (minutes; five minutes or hours for long windows); `measures/trace/exposure.py` says what each
stay of a mould put on each pallet: rows summed and divided by the whole are the probabilities of cavities, columns
those of pallets, sums the expected escapes. `defect_rates.py` follows a mould's rate as a hidden Markov chain over
levels, so that a fault's edges stay sharp; `packing.py` estimates the way from the last station to the pallet from
units against what passed; `trust.py` gives the share missed by time, with its spread. The same fault beyond the window
is taken from kept signals, up to three days each way.

**Trust.** Escapes use each station's passes with the works' own beta distribution as prior (`detection.works_prior`); a
failed challenge counts as a failure only as far as Bayes' theorem makes it one (`trust.REAL`), but what it puts in
doubt is listed whole. Lanes count by equal parts. `false_calls.py` integrates over what of the calls is false: with a
prior even on the logarithm the split liked false calls (1.8 times the truth on rough works); levels of true defects
therefore weigh as the square root of the level (`NEUTRAL`).

**Whole-number intervals** hold at least 95 %, so over pallets with tiny expectations they hold the truth more often
than that.

**Station faults** (`measures/trace/station_faults.py`): a clock by the shift of greatest correlation with what the
other stations let expect (a lane: the whole ware less the other lanes), certain at five standard deviations of Fisher's
z over any other shift. `[[clock]]` moves rows at intake; the contract has no such table, a works' clock that was not
put back has no other cure.
"""
