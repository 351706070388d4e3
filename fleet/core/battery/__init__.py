"""What a battery pack still carries, how it fades, and when it passes the replacement level.

Arrays in, arrays out: no database, no clock, no files. `runtime` turns a measured runtime into a fraction,
`fade` pools the packs of a type, `crossing` turns a pack's fade into dates, `forecast` joins them.
"""
