"""How large a workbook and what is in it may be. Each limit is said in the sentence that refuses a file.

A case log of 20,000 baths, as many fish and a tenth as many visits has 162 MB of parts in a file of 14 MB; its largest
part has 100 MB, no part unpacks to more than 16 times its size. An empty log with 20,000 rows ahead on every sheet has
422 MB in 30 MB, its largest part 96 MB, at most 20 times. Both grow with their rows: at 100,000, the most that the
tools make, 2.1 GB, 0.5 GB and the same ratios (measured on files built here).
"""

from __future__ import annotations

MEBI, GIBI = 1 << 20, 1 << 30

LARGEST_FILE = GIBI  # bytes; a log of 100,000 rows has 150 MB, the rest is for pictures
MOST_ENTRIES = 10_000  # a log has 116 parts; each picture, note and chart that a person adds brings a few
LARGEST_PART = GIBI  # bytes, unpacked: twice the largest sheet of 100,000 rows
LARGEST_WHOLE = 4 * GIBI  # bytes, unpacked: twice an empty log of 100,000 rows
HIGHEST_RATIO = 100  # unpacked to packed, five times that of an empty log; the packing itself reaches 1,032
RATIO_FROM = MEBI  # bytes, unpacked: smaller parts do no harm whatever their ratio
LONGEST_NAME = 255  # characters of a part's name; a log's longest has 60

LARGEST_TREE = 64 * MEBI  # bytes of a part that is read as a tree: ten times the largest chart of 100,000 rows
DEEPEST = 200  # elements inside elements; a spreadsheet writes about 20, the parser itself stops at 256
LONGEST_PROLOG = 4096  # bytes before the first element

MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384  # of a sheet, in every spreadsheet program of today
MOST_CELLS = 20_000_000  # of the block from A1 to the last row and column: 100,000 rows of 200 columns
LARGEST_ROW = 64 * MEBI  # bytes of one row, or of all that follows the rows
MOST_TEXTS = 5_000_000  # of the shared table of texts; a log of 100,000 baths has about half a million
MOST_STYLES = 65_490  # cell formats that a spreadsheet program has room for (its published limit, from memory)
MOST_SHEETS = 1_000  # a log has 23
MOST_MERGED = 100_000  # merged areas of one sheet; a log has none in its tables

# bytes unpacked from a file that is looked through for leaks, packages in it and all; 30 MB of cells take 1.6 GB
LARGEST_AUDITED = 32 * MEBI
MOST_RAW = 8 * MEBI  # bytes of its parts that are neither text nor XML, and are searched for runs of letters
