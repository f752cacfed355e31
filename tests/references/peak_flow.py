"""Two meters of peak expiratory flow (l/min), each used twice on 17 people, and what was made of them."""

from __future__ import annotations

from .source import Source

BLAND_ALTMAN_1986 = Source(
    citation="Bland JM, Altman DG (1986) Statistical methods for assessing agreement between two methods of clinical "
    "measurement. Lancet 327:307-310",
    doi="10.1016/S0140-6736(86)90837-8",
    where="table 1, as given at www-users.york.ac.uk/~mb55/meas/repeated.htm",
    reading="read",
)

WRIGHT = (
    (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427),
    (490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421),
)
MINI_WRIGHT = (
    (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451),
    (525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443),
)

PRINTED_BIAS, PRINTED_SD = -2.1, 38.8
"""First reading of each meter, Wright less mini; printed to one digit."""
PRINTED_LIMITS = (-79.7, 75.5)
"""Bias ± 2 SD, printed from the rounded values."""

LIMITS_196 = (-78.097302, 73.862007)
BIAS_INTERVAL = (-22.0488, 17.8135)
LIMIT_ERROR = 16.284612
"""At full precision with 1.96 SD: fixtures of other software, read in a secondary text; bias and SD recomputed."""

WITHIN_SD = {"wright": 15.3067, "mini": 19.9108}
REPEATABILITY = {"wright": 43.29, "mini": 56.32}
"""Derived from the table; repeatability is two standard deviations of a difference."""

REPEATED_1996 = Source(
    citation="Bland JM, Altman DG (1996) Measurement error. BMJ 313:744",
    doi="10.1136/bmj.313.7059.744",
    where="table 1, children 1 to 4 of 20",
    reading="read",
)
CHILDREN = (
    ((190, 220, 200, 200), 12.58),
    ((220, 200, 240, 230), 17.08),
    ((260, 260, 240, 280), 16.33),
    ((210, 300, 280, 265), 38.60),
)
"""Four readings of peak flow (l/min) and their printed standard deviation."""
