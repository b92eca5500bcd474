"""A stop while a row is sealed: SQLite calls back, and forgets what ended the call."""

from datetime import UTC, date, datetime

import pytest

from shortpencil.forms.errors import RecordError
from shortpencil.scan.records.storing import sealing
from shortpencil.scan.records.storing.told import ToldSession

WHEN = datetime(2030, 5, 20, 18, 30, tzinfo=UTC)
SESSION = ToldSession(date(2030, 5, 20), "putt", 30, "Wren")


def ended_by(error: type[BaseException]):
    def seal(*_: str | bytes | None) -> str:
        raise error

    return seal


@pytest.mark.parametrize(
    ("ends", "told"), [(KeyboardInterrupt, KeyboardInterrupt), (ValueError, RecordError)]
)
def test_ctrl_c_while_a_row_is_sealed_is_ctrl_c_and_keeps_nothing_half(store, monkeypatch, ends, told):
    if "postgresql" in str(store.name):
        pytest.skip("a server has no seals")
    with monkeypatch.context() as patched:
        patched.setattr(sealing, "seal", ended_by(ends))
        with pytest.raises(told):
            store.tell_session(SESSION, WHEN)
    assert store.told_sessions() == ()
    store.tell_session(SESSION, WHEN)
    assert len(store.told_sessions()) == 1
    assert store.damages() == ()
