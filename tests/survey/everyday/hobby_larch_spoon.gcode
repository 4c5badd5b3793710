; spoon blank
g90 g94
m3 s15000
g0 x18 y0
z2
g1 z-2 f133
g3 x-18 y0 i-18 j0 f400
x18 y0 i18 j0
g0 z10
x24 y-5
z2
g1 z-2 f167
x76 f500
g3 x80 y-1 i0 j4
g1 y1
g3 x76 y5 i-4 j0
g1 x24
g3 x20 y1 i0 j-4
g1 y-1
g3 x24 y-5 i4 j0
g0 z10
g0 x0 y0
g1 z-1 f200
g18
g3 x16 z-1 i8 k0 f400
g17
g0 z30
m5
