"""A log without the lines before its header, as a file of its own."""

import hashlib
from collections.abc import Mapping
from pathlib import Path

from server.intake import open_text
from server.intake.limits import ReadLimits
from server.model.measured import JsonValue
from server.store.file_rows import lines_from
from server.store.files import StoredUpload, incoming_path, keep_upload


def leave_out_preamble(
    path: Path,
    *,
    file_name: str,
    dialect: Mapping[str, JsonValue],
    limits: ReadLimits,
    files: Path,
) -> tuple[StoredUpload, int] | None:
    """Keep a copy of a log that begins with its header; the lines above may name somebody.

    Parameters
    ----------
    dialect : how the log was read (`LogPreview.dialect`): where its header stands.

    Returns
    -------
    The new file in its place and its number of lines; None where nothing stands above the header.
    Every line kept is kept byte for byte; a sheet becomes text.
    """
    header = dialect.get("header_row") or dialect.get("first_row")
    if not isinstance(header, int) or header <= 1:
        return None
    target = incoming_path(files)
    digest = hashlib.sha256()
    n_bytes = n_lines = 0
    is_sheet = "sheet" in dialect
    try:
        with open_text(path, name=file_name, limits=limits) as text, target.open("wb") as file:
            source, how = (text.path, {}) if is_sheet else (path, dialect)
            for line in lines_from(source, dialect=how, first_line=header):
                file.write(line)
                digest.update(line)
                n_bytes += len(line)
                n_lines += 1
        name = f"{Path(file_name).stem}.csv" if is_sheet else file_name
        upload = keep_upload(files, target, name=name, sha256=digest.hexdigest(), n_bytes=n_bytes)
        return upload, n_lines
    finally:
        target.unlink(missing_ok=True)
