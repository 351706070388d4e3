"""The demonstration hospital: invented places, makers, people and three years of history, made by the rooms' actions.

Nothing here is real, and nothing here is advice: the words of wards and benches, the intervals, the prices and the
fade of the packs are made up so that every page has something true to its own record to show.
"""
