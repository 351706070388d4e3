"""A bending, wandering fade with wrong tests: the model behind the forecast of a pack's crossing.

    y = a_i - b_i t - c t^2 + kappa W_i(t) + e

y runtime fraction at age t (years); (a_i, b_i) differ between the packs of a type as a bivariate normal; the bend
c >= 0 is common to a type (a knee); kappa W is a Wiener path of the pack's own; e is N(0, s^2 phi_kind) for a good test
and, with probability pi, a gross error that says nothing of the pack. A test after a short charge reads low by a number
of the type times the missing part of the charge; a pack's mean fade goes with a power of its cycles a year.

`histories` lays the tests out, `parameters` names the type's numbers and what is assumed of them beforehand,
`filtering` turns tests into what is known of each pack, `doubt` says which tests are likely wrong, `fit` estimates and
draws the numbers, `passage` and `outlook` give the crossing, `rough` where to look for it, `next_test` what one more
test would change, `ranks` corrects it by the packs whose crossing is known.
"""
