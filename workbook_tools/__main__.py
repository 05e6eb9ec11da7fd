"""`python -m workbook_tools`: the command line, where its own command is not found."""

from workbook_tools.cli import main

if __name__ == "__main__":
    main()
