"""What runs inside LibreOffice: the functions of a topic as a Calc add-in, and the menu.

These files are bundled into the extension and started by LibreOffice's own Python; `uno` exists only there.
"""
