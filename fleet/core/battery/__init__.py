"""What a battery pack still carries, how it fades, and when it passes the replacement level.

Arrays in, arrays out: no database, no clock, no files. `runtime` turns a measured runtime into a fraction, `bend` is
the model of fade, `forecast` says of each pack what it carries, when it crosses and how sure that is, `demand`,
`stock`, `decision` and `worth` what follows from it, `drift` whether tests still come out as forecast, `backtest` how
good the forecasts have been. `fade` and `crossing` are the pooled straight line that it is compared with.
"""
