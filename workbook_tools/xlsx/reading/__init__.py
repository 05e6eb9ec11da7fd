"""The one door for files from elsewhere: everything that reads a workbook looks at it here first.

    admitted(path)     the parts of a workbook that may be read, or a ReadError that says in a sentence why not
    Archive(...)       a zip whose directory was looked at, with parts that unpack no further than they say
    tree(...)          a part's XML, nothing fetched and no entity put in
    sheets_ahead(...)  the fast reader of values, its failures in words; native_cells(...) for one sheet

What is checked before anything is unpacked: that the path is an ordinary file, that it is a zip, and what the zip's
directory says of its parts (`archive`, with the `limits`). While unpacking: that a part is what the directory says.
Then that it is a workbook (`contents`), that no part brings a document type, and how far its cells reach (`sheets`).
What in it could act on a computer is named by `foreign`; nothing of it is ever run.
"""

from workbook_tools.xlsx.reading.archive import Archive, shown
from workbook_tools.xlsx.reading.door import admitted, admitted_in_turn
from workbook_tools.xlsx.reading.files import file_content, real_path, why_not
from workbook_tools.xlsx.reading.foreign import Foreign, foreign_in
from workbook_tools.xlsx.reading.markup import tree
from workbook_tools.xlsx.reading.native_reader import native_cells, native_workbook, sheets_ahead, whole_sheet
from workbook_tools.xlsx.reading.properties import properties_of

__all__ = [
    "Archive",
    "Foreign",
    "admitted",
    "admitted_in_turn",
    "file_content",
    "foreign_in",
    "native_cells",
    "native_workbook",
    "properties_of",
    "real_path",
    "sheets_ahead",
    "shown",
    "tree",
    "whole_sheet",
    "why_not",
]
