"""Secrets sealed by a key that lies beside the database."""

from pathlib import Path

import pytest

from server.credentials.sealing import KEY_FILE, NotSealedHere, seal, unseal
from server.errors import BenchledgerError


def test_what_is_sealed_is_read_again_for_its_purpose_alone(tmp_path: Path) -> None:
    sealed = seal(tmp_path, "JBSWY3DPEHPK3PXP", purpose="totp 7")
    assert "JBSWY3DPEHPK3PXP" not in sealed
    assert unseal(tmp_path, sealed, purpose="totp 7") == "JBSWY3DPEHPK3PXP"
    with pytest.raises(NotSealedHere):
        unseal(tmp_path, sealed, purpose="totp 8")


@pytest.mark.parametrize("sealed", ["", "A", "é", "AAAA" * 12])
def test_what_was_not_sealed_here_is_refused(tmp_path: Path, sealed: str) -> None:
    with pytest.raises(NotSealedHere):
        unseal(tmp_path, sealed, purpose="totp 7")


def test_the_key_is_its_owners_alone_and_another_folders_key_opens_nothing(tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    sealed = seal(one, "text", purpose="p")
    assert (one / KEY_FILE).stat().st_mode & 0o777 == 0o600
    assert [path.name for path in one.iterdir()] == [KEY_FILE]
    with pytest.raises(NotSealedHere):
        unseal(other, sealed, purpose="p")


def test_a_damaged_key_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / KEY_FILE).write_bytes(b"short")
    with pytest.raises(BenchledgerError, match="backup"):
        seal(tmp_path, "text", purpose="p")
