//! Where propagation of first order is too small: JCGM 101:2008, 9.2 to 9.4 (inputs seen in two public implementations; results of 9.2
//! seen there too, those of 9.3 and 9.4 remembered and confirmed by four million trials with another tool).
