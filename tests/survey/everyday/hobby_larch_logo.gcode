; logo engraving
g21 g90
m3 s20000
g0 x0 y0
z2
g1 z-0.3
y12
x8
g0 z10
x0 y6
z2
g1 z-0.3
x6
g0 z10
x12 y0
z2
g1 z-0.3
x16 y12
x20 y0
g0 z10
x13.5 y5
z2
g1 z-0.3
x18.5
g0 z10
g0 z20
m5
