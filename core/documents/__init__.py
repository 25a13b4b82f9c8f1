"""Everything that leaves the program: chart note, patient sheet, order, working sheet, exchange, tables.

Documents are made from the case, its plan and its fitting sheet each time anew; nothing here changes a case.
"""
