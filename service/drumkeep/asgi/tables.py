"""Tables as CSV that a spreadsheet opens and that does nothing there but stand."""

import csv
from collections.abc import Iterable, Sequence
from io import StringIO

from fastapi.responses import Response

from drumkeep.domain.spreadsheets import escaped


def csv_answer(rows: Iterable[Sequence[object]], *, name: str) -> Response:
    """Answer rows as a CSV file (RFC 4180), the first of them the headings.

    Parameters
    ----------
    rows
        Texts, numbers, or None for an empty cell.
    name
        Of the file, without its ending; what cannot stand in one is left out.
    """
    written = StringIO()
    writer = csv.writer(written)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    plain = "".join(s if s.isascii() and (s.isalnum() or s in "-_.") else "-" for s in name)
    return Response(
        # With the mark a spreadsheet knows that it is UTF-8.
        "\N{BYTE ORDER MARK}" + written.getvalue(),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{plain}.csv"'},
    )


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return escaped(str(value))
