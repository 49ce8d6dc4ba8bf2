"""A few mutated uploads through the service's actions; many more: tests.simulated.mutations."""

from pathlib import Path

from tests.simulated.mutations import SHARE_EQUAL, run_mutations


def test_mutated_uploads_are_stored_whole_or_refused_with_a_reason(tmp_path: Path) -> None:
    counts, ledger = run_mutations(120, seed=5, data=tmp_path / "data", say=lambda _: None)
    left = ledger.left_over()
    ledger.engine.dispose()
    assert counts.wrong == []
    assert left == []
    assert counts.share_equal >= SHARE_EQUAL, counts.unequal
    for kind in ("damaged csv, refused", "damaged csv, stored", "damaged xlsx, refused"):
        assert counts.seen[kind] > 0, kind
