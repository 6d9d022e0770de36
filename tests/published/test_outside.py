"""Published data that is not there fails a test where `CI` is set, and nowhere else."""

from __future__ import annotations

import pytest

from tests.published.outside import beside


def test_absent_data_fails_under_ci_and_is_none_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    assert beside("no such file.csv") is None
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match=r"no such file\.csv"):
        beside("no such file.csv")
