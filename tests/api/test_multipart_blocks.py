"""A multipart body gives the same parts however it is cut into blocks."""

from hypothesis import assume, example, given
from hypothesis import strategies as st

from server.dependencies.form_parts import FormParts

BOUNDARY = b"a-boundary"
DELIMITER = b"\r\n--" + BOUNDARY
PIECES = st.sampled_from(
    [b"1.5,2.5\n", b"\r", b"\r\n", b"\r\n--", b"\r\n--a-bound", b"--a-boundary", b"x" * 40, b"-"]
)


def body(log: bytes, note: bytes) -> bytes:
    head = b'\r\nContent-Disposition: form-data; name="'
    return (
        DELIMITER[2:] + head + b'note"\r\n\r\n' + note
        + DELIMITER + head + b'file"; filename="a.csv"\r\n\r\n' + log
        + DELIMITER + head + b'last"\r\n\r\n' + note + DELIMITER + b"--\r\n"
    )  # fmt: skip


@given(
    log=st.lists(PIECES, max_size=60).map(b"".join),
    cuts=st.lists(st.integers(1, 70), min_size=1, max_size=30),
)
@example(log=b"1,2\n" * 50 + b"\r\n--a-bound", cuts=[300, 3])
@example(log=b"1,2\n" * 80, cuts=[50])
def test_blocks_of_any_size(log: bytes, cuts: list[int]) -> None:
    assume(DELIMITER not in log)
    handed_on: list[bytes] = []
    form = FormParts(handed_on.append, "file")
    parse = form.parser(BOUNDARY)
    sent, at, n = body(log, b"a note"), 0, 0
    while at < len(sent):
        size = cuts[n % len(cuts)]
        parse(sent[at : at + size])
        at, n = at + size, n + 1
    parse(b"")
    assert b"".join(handed_on) == log
    assert form.fields == {"note": "a note", "last": "a note"}
    assert form.file_name == "a.csv"
