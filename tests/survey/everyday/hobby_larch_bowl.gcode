; bowl, rough
g90
m3 s15000
g0 x40 y0
z2
g1 z-2 f133
g3 x-40 y0 i-40 j0 f400
x40 y0 i40 j0
g0 z10
x35
z2
g1 z-4 f133
g3 x-35 y0 i-35 j0 f400
x35 y0 i35 j0
g0 z10
x28
z2
g1 z-6 f133
g3 x-28 y0 i-28 j0 f400
x28 y0 i28 j0
g0 z10
g0 z30
m5
m2
