"""Invented programs in the style of small shops, teaching and hobby: how they begin, cut and end, in many mixtures.

``PROGRAMS`` holds name, text and whether it is to be understood where the units alone are asked for (``mm``).
"""

import random

HEADS = {
    "plain": "%\nO1001 (BRACKET)\nG21 G17 G90 G94 G40 G49 G80\n",
    "silent": "(PLATE WITH SLOT)\nG90 G17 G40\n",
    "two labels": "%\nO0042 N5 G90 G21\n",
    "alignment": ":0007 G90 G17\n",
    "home first": "G21 G90\nG28\n",
    "home in steps": "G21\nG91 G28 Z0.\nG28 X0. Y0.\nG90\n",
    "speed word": "G21 G90 G97\n",
    "machine place": "G90 G21\nG91 G53 G00 Z0.\nG90\n",
    "cancels": "G21\nG00 G15 G17 G40 G49 G50 G69 G80 G90 G94\n",
    "numbered": "%\nO2002\nN10 G21 G90\nN20 G17 G40 G80\n",
    "small letters": "g21 g90 g17 g40\n",
    "unspaced": "%\nO77(LID)\nN1G21G90G40G80\nN2G64\n",
    "other offset": "G21 G90 G17\nG55\n",
    "notes": "(MATERIAL: ALUMINIUM)\n(ZERO: TOP, LEFT CORNER)\n; by hand\nG71 G90\n",
}
TOOLS = {
    "with length": "T1 M06\nG00 G43 H1 Z80.\nS2400 M03\nM08\n",
    "no changer": "S9000 M03\n",
    "clamped": "T2 M06\nM10\nM38\nG00 G43 Z80. H2 S900 M03\nM50\n",
    "two lines": "N100 T3\nN110 M06\nS1500M3\nG43H3G0Z80\n",
    "switched": "T1 M06\n/G04 P500\nM01\nG43 H1 G00 Z80.\nS3000 M13\n",
}
CUTS = {
    "square": "G00 X0. Y0.\nG01 Z70. F200.\nX30. F600.\nY30.\nX0.\nY0.\nG00 Z80.\n",
    "circle": "G00 X20. Y0. Z72.\nG01 Z70. F150\nG02 X20. Y0. I-20. J0. F500\nG00 Z80.\n",
    "slots": "G00 X0 Y0 Z72\nG91\nG01 Z-2 F100\nX20 F400\nG02 X0 Y10 I0 J5\nG01 X-20\nG90\nG00 Z80\n",
    "holes": "G98 G81 X5. Y5. Z62. R72. F120.\nX25.\nY25.\nG80\nG00 Z80.\n",
    "pecks": "G99 G83 X5. Y5. Z60. R72. Q3. F90.\nX15.\nG80\nG00 Z80.\n",
    "radii": "G00 X0 Y0 Z72\nG01 Z70 F100\nX20\nG03 X30 Y10 R10\nG01 Y30\nG02 X10 Y30 R-10 F80\nG00 Z80\n",
    "beside a contour": "G00 X-20 Y-20 Z72\nG01 Z70 F90\nG41 D1 X0 Y0 F300\nY30\nX30\nY0\nX0\nG40 X-20 Y-20\nG00 Z80\n",
    "other planes": "G00 X0 Y0 Z75\nG18 G02 X10 Z75 I5 K0 F200\nG19 G03 Y10 Z75 J5 K0\nG17\nG00 Z80\n",
    "turned": "G00 X0 Y0 Z80\nG01 X10 A5. F500\nB-3.\nX20 Y5 A0. B0.\nG00 Z85\n",
    "preset": "G00 X5 Y5 Z80\nG92 X0 Y0\nG01 X9 F300\nY9\nG92 X14 Y14\nG00 Z80\n",
    "dwells": "G00 X0 Y0 Z72\nG01 Z71 F90\nG04 P250\nG04 X0.2\nM00\nX9\nM01\nG00 Z80\n",
    "tapping": "S200 M03\nG00 X5 Y5\nG84 X5 Y5 Z60 R72 F200\nX15\nG80\nG00 Z80\n",
    "bores": "G98 G82 X5 Y5 Z69 R72 P200 F60\nG85 X15\nG89 X25 P100\nG80\nG00 Z80\n",
    "exact stops": "G61\nG01 X9 F300\nY9\nG64\nG09 G01 X0\nY0\nG00 Z80\n",
    "inverse time": "G93 G01 X9 F20\nY9 F30\nG94\nG01 X0 F300\nG00 Z80\n",
    "a turn": "S300 M03\nG95 G01 X9 F0.2\nG94\nG01 Y9 F300\nG00 Z80\n",
    "helix": "G00 X10 Y0 Z76\nG03 X10 Y0 Z70 I-10 J0 F300\nG03 I-10\nG00 Z80\n",
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
    "M02": "M5\nM9\nM2\n",
    "subprogram": "M98 P900 L2\nM05\nM30\nO900\nG91 G01 X1 F90\nG90\nM99\n",
    "percent alone": "M05\nM30\n%",
    "coolant off late": "G53 G00 Z0 M09\nM05\nM30\n",
}
REFUSED = {
    "variables": "G21 G90\n#100=5.\nG00 X#100 Z80\nM30\n",
    "macro call": "G21 G90 G00 X0 Z80\nG65 P9010 X5.\nM30\n",
    "loop": "G21 G90\nWHILE [#1 LT 5] DO1\nG01 X1 F9\nEND1\nM30\n",
    "exponents": "G21 G90 G00 X1E1 Z80\nM30\n",
    "no feed": "G21 G90 G00 X0 Z80\nG01 X5.\nM30\n",
    "mode of centres": "G21 G90 G12.3\nG00 X0 Y0 Z80\nG02 X5 Y5 I5 J0 F200\nM30\n",
    "a word of the shop": "G21 G90 G00 X0 Z80\nM777\nM30\n",
    "a parameter": "G21 G90 G64 P0.002\nG00 X0 Z80\nM30\n",
    "text": "G21 G90\nSECOND SIDE OF THE PLATE\nG00 X0 Z80\nM30\n",
    "moves behind the end": "G21 G90 G00 X0 Z80\nM30\nG00 X5\n",
    "arc off its circle": "G21 G90 G00 X0 Y0 Z80\nG02 X5 Y5 I1 J0 F200\nM30\n",
    "template": "G21 G90 G00 X{WIDTH} Z80\nM30\n",
    "scaling": "G21 G90 G00 X0 Z80\nG51 P2\nM30\n",
    "turned coordinates": "G21 G90 G00 X0 Z80\nG68 X0 Y0 R30\nM30\n",
    "rotary word of two turns": "G21 G90 G00 X0 Z80\nG01 A720. F300\nM30\n",
    "no first motion word": "G21 G90 G17\nX5 Y5\nG01 X9 F100\nM30\n",
    "expression": "G21 G90 G00 X[5+2] Z80\nM30\n",
    "jump": "G21 G90 G00 X0 Z80\nIF [#1 EQ 2] GOTO 10\nM30\n",
    "preset of the spindle": "G21 G90 G50 S3000\nG00 X0 Z80\nM30\n",
    "settings": '[words]\nunits = "mm"\n',
}
MANY = 120


def _mixed():
    """Yield so many mixtures that every piece occurs with many others, and all about as often."""
    rng, count, columns = random.Random(13), MANY - len(REFUSED), []
    for pieces in (HEADS, TOOLS, CUTS, ENDS):
        column = []
        while len(column) < count:
            column += rng.sample(list(pieces.items()), len(pieces))
        columns.append(column[:count])
    for chosen in zip(*columns, strict=True):
        yield ", ".join(name for name, _ in chosen), "".join(text for _, text in chosen), True


PROGRAMS = [*_mixed(), *((name, text, False) for name, text in REFUSED.items())]
