"""What names a store: a file, or a URL of one of two kinds; anything else is told."""

from __future__ import annotations

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.storing.database import database_url


@pytest.mark.parametrize(
    "place", ["sqlite://", "sqlite:///", "sqlite:///:memory:", "sqlite:///a%00b", "sqlite:///a\0b"]
)
def test_a_url_without_a_file_is_none_to_store_in(place, capsys):
    """What was read went nowhere, and was said to be stored."""
    with pytest.raises(InputError, match="expected the name of a file behind sqlite:///"):
        database_url(place)
    assert main(["rounds", "--store", place]) == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(
    "place", ["postgresql://[::1", "postgresql://host:port/name", "postgresql+psycopg://h:x/"]
)
def test_what_is_no_url_is_told(place, capsys):
    assert main(["rounds", "--store", place]) == 2
    assert "as in postgresql://user@host/database" in capsys.readouterr().err
