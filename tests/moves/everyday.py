"""Invented programs in the style of small shops, teaching and hobby: how they begin, cut and end, in many mixtures.

``PROGRAMS`` holds name, text and whether it is to be understood where the units alone are asked for (``mm``).
"""

HEADS = {
    "plain": "%\nO1001 (BRACKET)\nG21 G17 G90 G94 G40 G49 G80\n",
    "silent": "(PLATE WITH SLOT)\nG90 G17 G40\n",
    "two labels": "%\nO0042 N5 G90 G21\n",
    "alignment": ":0007 G90 G17\n",
    "home first": "G21 G90\nG28\n",
    "home in steps": "G21\nG91 G28 Z0.\nG28 X0. Y0.\nG90\n",
    "speed word": "G21 G90 G97\n",
    "machine place": "G90 G21\nG91 G53 G00 Z0.\nG90\n",
}
TOOLS = {
    "with length": "T1 M06\nG00 G43 H1 Z80.\nS2400 M03\nM08\n",
    "no changer": "S9000 M03\n",
    "clamped": "T2 M06\nM10\nM38\nG00 G43 Z80. H2 S900 M03\nM50\n",
}
CUTS = {
    "square": "G00 X0. Y0.\nG01 Z70. F200.\nX30. F600.\nY30.\nX0.\nY0.\nG00 Z80.\n",
    "circle": "G00 X20. Y0. Z72.\nG01 Z70. F150\nG02 X20. Y0. I-20. J0. F500\nG00 Z80.\n",
    "slots": "G00 X0 Y0 Z72\nG91\nG01 Z-2 F100\nX20 F400\nG02 X0 Y10 I0 J5\nG01 X-20\nG90\nG00 Z80\n",
    "holes": "G98 G81 X5. Y5. Z62. R72. F120.\nX25.\nY25.\nG80\nG00 Z80.\n",
    "pecks": "G99 G83 X5. Y5. Z60. R72. Q3. F90.\nX15.\nG80\nG00 Z80.\n",
}
ENDS = {
    "home": "M05\nM09\nG28\nM30\n%\n",
    "home under G91": "G91 G28 Z0.\nG28 X0. Y0.\nG90\nM05\nM30\n",
    "second home": "G30\nM05\nM30\n",
    "machine place": "G91 G53 Z0.\nM05\nM02\n",
    "end twice": "M05\nM30\nM30\n%\n",
    "closing words": "M30\nM05 M09\n",
    "unclamped": "M09\nM05\nM11\nM69\nM30\n",
    "none": "M05\n",
}
REFUSED = {
    "variables": "G21 G90\n#100=5.\nG00 X#100 Z80\nM30\n",
    "macro call": "G21 G90 G00 X0 Z80\nG65 P9010 X5.\nM30\n",
    "loop": "G21 G90\nWHILE [#1 LT 5] DO1\nG01 X1 F9\nEND1\nM30\n",
    "exponents": "G21 G90 G00 X1E1 Z80\nM30\n",
    "no feed": "G21 G90 G00 X0 Z80\nG01 X5.\nM30\n",
    "mode of centres": "G21 G90 G12.3\nG00 X0 Y0 Z80\nG02 X5 Y5 I5 J0 F200\nM30\n",
    "a word of the shop": "G21 G90 G00 X0 Z80\nM777\nM30\n",
    "a parameter": "G21 G90 G64 P0.02\nG00 X0 Z80\nM30\n",
    "text": "G21 G90\nSECOND SIDE OF THE PLATE\nG00 X0 Z80\nM30\n",
    "moves behind the end": "G21 G90 G00 X0 Z80\nM30\nG00 X5\n",
    "arc off its circle": "G21 G90 G00 X0 Y0 Z80\nG02 X5 Y5 I1 J0 F200\nM30\n",
    "template": "G21 G90 G00 X{WIDTH} Z80\nM30\n",
}
MANY = 60


def _mixed():
    """Yield so many mixtures that every piece occurs with many others."""
    heads, tools, cuts, ends = (list(x.items()) for x in (HEADS, TOOLS, CUTS, ENDS))
    for k in range(MANY - len(REFUSED)):
        chosen = heads[k % 8], tools[(k // 8 + k) % 3], cuts[(3 * k + k // 8) % 5], ends[(5 * k + k // 8) % 8]
        yield ", ".join(name for name, _ in chosen), "".join(text for _, text in chosen), True


PROGRAMS = [*_mixed(), *((name, text, False) for name, text in REFUSED.items())]
