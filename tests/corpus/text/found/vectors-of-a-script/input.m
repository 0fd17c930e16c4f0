% invented: betanin in buffer
% absorbance, blank taken off
wl_nm = [ 500 504 508 512 516 520 ...
          524 528 ];
A = [ 0.3120 0.3344 0.3561 0.3770 0.3958 0.4115 ...
      0.4230 0.4297 ];
plot(wl_nm, A)
