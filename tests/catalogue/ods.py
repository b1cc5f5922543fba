"""A small ODS workbook, written as the standard has it."""

import io
import zipfile

_URN = "urn:oasis:names:tc:opendocument:xmlns:"


def ods(**sheets: str) -> bytes:
    """A workbook whose sheets have these rows; `o`, `t`, `x` are the prefixes of office, table and text."""
    spaces = {"o": "office", "t": "table", "x": "text"}
    names = "".join(f'xmlns:{short}="{_URN}{name}:1.0" ' for short, name in spaces.items())
    tables = "".join(f'<t:table t:name="{name}">{rows}</t:table>' for name, rows in sheets.items())
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        body = f"<o:body><o:spreadsheet>{tables}</o:spreadsheet></o:body>"
        packed.writestr("content.xml", f"<o:document-content {names}>{body}</o:document-content>")
    return written.getvalue()
