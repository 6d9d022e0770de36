"""Hidden Markov chains, smoothed: what the whole series says of the state at each step."""

from __future__ import annotations

import numpy as np


def smoothed(likely: np.ndarray, prior: np.ndarray, moves: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Posterior weights [chains, series, steps, states], and the log likelihood of all series by chain.

    likely: [series, steps, states] likelihoods, up to a factor a step. prior: [states]. moves: [chains, states,
    states], rows sum to 1.

    References: [1] Rabiner, Proceedings of the IEEE 77 (1989) 257, forward-backward recursions, eq. 19-27.
    """
    shape = (len(moves), *likely.shape)
    forward, backward, back_moves = np.empty(shape), np.ones(shape), moves.transpose(0, 2, 1)
    state, fits = np.broadcast_to(prior, (len(moves), len(likely), len(prior))), np.zeros(len(moves))
    for at in range(likely.shape[1]):
        state = (state if at == 0 else state @ moves) * likely[:, at] + 1e-300
        total = state.sum(axis=2, keepdims=True)
        state = state / total
        fits += np.log(total).sum(axis=(1, 2))
        forward[:, :, at] = state
    for at in range(likely.shape[1] - 2, -1, -1):
        back = (backward[:, :, at + 1] * likely[:, at + 1]) @ back_moves
        backward[:, :, at] = back / back.sum(axis=2, keepdims=True)
    weights = forward * backward
    return weights / weights.sum(axis=3, keepdims=True), fits
