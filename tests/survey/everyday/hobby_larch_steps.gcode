; test steps
g21 g91
m3 s9000
g0 z5
g0 x10 y10
g1 z-6 f200
g1 x30 f500
g3 x10 y10 j10
g1 y20
g1 x-40
g1 y-30
g0 z6
g90
m5
m30
