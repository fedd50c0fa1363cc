"""A drum's pressure, fill and moisture as its page shows them."""

from drumkeep.domain.products import Product
from drumkeep.operations.pressure import report_of
from drumkeep.storage.drums import StockRow
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import PressureView
from drumkeep.web.views.sentences import said


def pressure_view(row: StockRow, *, product: Product, formats: Formats) -> PressureView | None:
    """Return what is computed of a drum's pressure, in the viewer's units; None without any."""
    report = report_of(row, product=product)
    if report is None:
        return None
    return PressureView(
        facts=tuple((name, said(text, formats)) for name, text in report.facts()),
        cautions=report.cautions,
    )
