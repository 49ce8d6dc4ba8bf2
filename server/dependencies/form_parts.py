"""The parts of a multipart body, parsed block by block."""

from collections.abc import Callable
from urllib.parse import unquote

from python_multipart.exceptions import MultipartParseError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.exceptions import HTTPException

from server.errors import InvalidInput, Problem

_MAX_FIELD_BYTES = 1 << 20
_MAX_PARTS = 100


class FormParts:
    """Callbacks of the multipart parser: the file's bytes are handed on, other parts stay in
    memory."""

    def __init__(self, add: Callable[[bytes], None], file_field: str) -> None:
        self.fields: dict[str, str] = {}
        self.file_name: str | None = None
        self.has_file = False
        self._add = add
        self._file_field = file_field
        self._header_name = b""
        self._header_value = b""
        self._disposition = b""
        self._part = ""
        self._value = bytearray()
        self._n_parts = 0
        self._is_file = False
        self._is_in_data = False
        self._is_done = False
        self._tail = b""

    def parser(self, boundary: bytes) -> Callable[[bytes], None]:
        if not boundary:
            raise HTTPException(400, "The multipart body names no boundary.")
        parser = MultipartParser(
            boundary,
            {
                "on_part_begin": self._begin,
                "on_header_field": self._on_header_name,
                "on_header_value": self._on_header_value,
                "on_header_end": self._header_end,
                "on_headers_finished": self._headers_done,
                "on_part_data": self._data,
                "on_part_end": self._end,
                "on_end": self._finish,
            },
        )
        n_tail = len(boundary) + len(b"\r\n--")

        def parse(block: bytes) -> None:
            # A delimiter begins with CR: where none is, nor the start of one before, looking for
            # that one byte does, at five times the speed of looking for the delimiter.
            is_in_file = self._is_file and self._is_in_data and b"\r" not in self._tail
            if block and is_in_file and b"\r" not in block:
                self._add(block)
                return
            try:
                if block:
                    parser.write(block)
                    self._tail = (self._tail + block[-n_tail:])[-n_tail:]
            except MultipartParseError as error:
                raise HTTPException(400, f"The multipart body is broken: {error}") from error
            if not block and not self._is_done:
                raise HTTPException(400, "The multipart body ends too early.")

        return parse

    def _begin(self) -> None:
        self._n_parts += 1
        if self._n_parts > _MAX_PARTS:
            raise HTTPException(400, f"More than {_MAX_PARTS} parts.")
        self._disposition, self._value = b"", bytearray()
        self._header_name, self._header_value = b"", b""

    def _on_header_name(self, data: bytes, start: int, end: int) -> None:
        self._header_name += data[start:end]

    def _on_header_value(self, data: bytes, start: int, end: int) -> None:
        self._header_value += data[start:end]

    def _header_end(self) -> None:
        if self._header_name.lower() == b"content-disposition":
            self._disposition = self._header_value
        self._header_name, self._header_value = b"", b""

    def _headers_done(self) -> None:
        _, options = parse_options_header(self._disposition)
        self._part = options.get(b"name", b"").decode("utf-8", "replace")
        self._is_file = self._part == self._file_field
        if self._is_file:
            if self.has_file:
                raise HTTPException(400, f"More than one part is called “{self._file_field}”.")
            self.has_file = True
            self.file_name = file_name_of(options)

    def _data(self, data: bytes, start: int, end: int) -> None:
        self._is_in_data = True
        if self._is_file:
            self._add(data[start:end])
            return
        self._value += data[start:end]
        if len(self._value) > _MAX_FIELD_BYTES:
            raise HTTPException(413, f"The part “{self._part}” has over {_MAX_FIELD_BYTES} bytes.")

    def _end(self) -> None:
        self._is_in_data = False
        if self._is_file or not self._part:
            return
        try:
            self.fields[self._part] = self._value.decode("utf-8")
        except UnicodeDecodeError as error:
            raise InvalidInput(
                "request",
                [Problem("this part is not UTF-8 text.", "Send it as UTF-8.", field=self._part)],
            ) from error

    def _finish(self) -> None:
        self._is_done = True


def file_name_of(options: dict[bytes, bytes]) -> str | None:
    """The file name in the options of a Content-Disposition."""
    extended = options.get(b"filename*")
    if extended is not None and extended.count(b"'") >= 2:
        return unquote(extended.split(b"'", 2)[2].decode("latin-1"))
    plain = options.get(b"filename")
    return plain.decode("utf-8", "replace") if plain else None
