; panel cut
g21 g90 g17
m3 s18000
g0 x5 y0
z2
g1 z-3
x65
g3 x70 y5 i0 j5
g1 y35
g3 x65 y40 i-5 j0
g1 x5
g3 x0 y35 i0 j-5
g1 y5
g3 x5 y0 i5 j0
g0 z10
g0 z20
m5
