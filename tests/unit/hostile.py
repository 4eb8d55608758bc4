"""Makes workbook files by hand, honest and hostile, part by part."""

import io
import zipfile
from collections.abc import Mapping

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"

WORKBOOK = (
    f'<workbook xmlns="{MAIN}" xmlns:r="{RELATIONS}"><sheets>'
    '<sheet name="Schedule" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
LINKS = (
    f'<Relationships xmlns="{PACKAGE}"><Relationship Id="rId1"'
    f' Type="{RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
)
CONTENT_TYPES = '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>'

PACKAGE_LINKS = (
    f'<Relationships xmlns="{PACKAGE}"><Relationship Id="rId1"'
    f' Type="{RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
)


def sheet_xml(rows: str, *, prolog: str = "", tail: str = "") -> str:
    return f'{prolog}<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData>{tail}</worksheet>'


def make_xlsx(rows: str = "", /, **parts: str | bytes) -> bytes:
    """Return a workbook with one sheet; ``parts`` replace or add parts by their path."""
    content: dict[str, str | bytes] = {
        "[Content_Types].xml": CONTENT_TYPES,
        "_rels/.rels": PACKAGE_LINKS,
        "xl/workbook.xml": WORKBOOK,
        "xl/_rels/workbook.xml.rels": LINKS,
        "xl/worksheets/sheet1.xml": sheet_xml(rows),
    }
    content.update(parts)
    return pack(content)


def pack(parts: Mapping[str, str | bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def number(reference: str, value: float) -> str:
    return f'<c r="{reference}"><v>{value}</v></c>'


def text(reference: str, value: str) -> str:
    return f'<c r="{reference}" t="inlineStr"><is><t>{value}</t></is></c>'
