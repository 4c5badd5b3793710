(parametric pocket, set the numbers and go)
G21 G90
#100 = 30
#101 = 0
#102 = 0.5
M3 S12000
G0 Z5
G0 X0 Y0
G1 Z-1 F200
WHILE [#101 LT #100] DO1
#101 = [#101 + #102]
G1 X#101 F800
G2 I[-#101] J0
END1
G0 Z10
M5
M2
