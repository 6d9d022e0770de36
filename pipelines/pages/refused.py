"""What is answered with a sentence and no more."""

from __future__ import annotations


class Refused(Exception):
    """A request that is answered with a sentence and no more. status: of HTTP."""

    def __init__(self, status: int, text: str, to_sign_in: bool = False, retry_s: int = 0):
        super().__init__(text)
        self.status, self.text, self.to_sign_in, self.retry_s = status, text, to_sign_in, retry_s
