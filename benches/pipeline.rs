//! The whole way against only decoding the same photos on the same threads.

use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use rayon::prelude::*;
use sightcord::pipeline;

/// The sample by default; name another job folder in SIGHTCORD_BENCH.
fn folder() -> String {
    std::env::var("SIGHTCORD_BENCH").unwrap_or_else(|_| "samples/grass-track".to_owned())
}

fn benchmark(c: &mut Criterion) {
    let folder = folder();
    let photos: Vec<Vec<u8>> = {
        let job = pipeline::open(Path::new(&folder)).expect("the job folder");
        job.photos.all().map(|photo| std::fs::read(&photo.path).expect("a photo")).collect()
    };
    let mut group = c.benchmark_group("photos");
    group.sample_size(10);
    group.bench_function("decode to luma alone", |b| {
        b.iter(|| photos.par_iter().map(|bytes| luma(bytes).len()).sum::<usize>());
    });
    group.bench_function("measure", |b| {
        b.iter(|| {
            pipeline::measure(pipeline::open(Path::new(&folder)).expect("the job folder"), &|_| {})
        });
    });
    group.finish();
}

/// The JPEG's own luma, nothing else done to it.
fn luma(bytes: &[u8]) -> Vec<u8> {
    use zune_core::bytestream::ZCursor;
    use zune_core::colorspace::ColorSpace;
    use zune_core::options::DecoderOptions;
    use zune_jpeg::JpegDecoder;
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::Luma);
    JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode().expect("a JPEG")
}

criterion_group!(benches, benchmark);
criterion_main!(benches);
