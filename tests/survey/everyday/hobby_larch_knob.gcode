; drawer knob
g21 g90
g92 x0 y0 z5
m3 s15000
m8
g0 x10 y0
z1
g1 z0 f175
g3 x-10 y0 z-0.625 i-10 j0 f350
x10 y0 z-1.25 i10 j0
x-10 y0 z-1.875 i-10 j0
x10 y0 z-2.5 i10 j0
x-10 y0 z-3.125 i-10 j0
x10 y0 z-3.75 i10 j0
x-10 y0 z-4.375 i-10 j0
x10 y0 z-5 i10 j0
x-10 y0 i-10 j0
g0 z10
g0 z30
m9 m5
