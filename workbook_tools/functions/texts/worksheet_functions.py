"""The worksheet functions that shipped cells may use: each was seen to give the same answer in every host."""

ALLOWED = frozenset(
    {
        *("ABS", "AND", "AVERAGE", "AVERAGEIFS", "COUNT", "COUNTA", "COUNTIF", "COUNTIFS", "EXP", "FALSE", "IF"),
        *(
            "COLUMNS",
            "DAY",
            "HYPGEOMDIST",
            "IFERROR",
            "INDEX",
            "INT",
            "ISERROR",
            "ISNUMBER",
            "ISTEXT",
            "LN",
            "LOG10",
            "MATCH",
            "MAX",
            "MEDIAN",
            "MIN",
        ),
        *(
            "MOD",
            "NORMSINV",
            "NOT",
            "OR",
            "PERCENTILE",
            "PI",
            "ROUND",
            "ROW",
            "ROWS",
            "SMALL",
            "SQRT",
            "SUBSTITUTE",
            "SUM",
            "SUMIF",
            "SUMIFS",
        ),
        *("MONTH", "RIGHT", "TRIM", "TRUE", "TRUNC", "YEAR"),
        "_xlfn.ISFORMULA",  # of Excel 2013; where it is not known, nothing is said of cells that were typed over
    }
)

FORMULA_LIMIT = 8192  # characters, ECMA-376 hosts
