; finger joint box, side A
; 6 mm ply, 3 mm bit, depth in 2 passes
G21 ; mm
G90 ; absolute
G0 Z5 ; up
M3 S16000
G4 P3 ; let the spindle get up to speed
G0 X-1.5 Y-1.5
G1 Z-3 F300
G1 X-1.5 Y21.5 F1000
G1 X4.5 Y21.5
G1 X4.5 Y38.5
G1 X-1.5 Y38.5
G1 X-1.5 Y61.5
G1 X101.5 Y61.5
G1 X101.5 Y-1.5
G1 X-1.5 Y-1.5
G1 Z-6.2 F300
G1 X-1.5 Y21.5 F1000
G1 X4.5 Y21.5
G1 X4.5 Y38.5
G1 X-1.5 Y38.5
G1 X-1.5 Y61.5
G1 X101.5 Y61.5
G1 X101.5 Y-1.5
G1 X-1.5 Y-1.5
G0 Z20 ; done
M5
G0 X0 Y0
