//! Files that tests read, and a folder for those that they write.

use std::path::{Path, PathBuf};

use ullage::file::wav::Wav;
use ullage::set::{Kind, Set, Shelf, read_set, read_shelf};

/// The demo set, from the crate's folder.
pub const QUAY_SET: &str = "presets/quay/set.toml";
/// Its bottles.
pub const QUAY_SHELF: &str = "presets/quay/shelf.toml";

/// Bottle A of `tests/data/struck_bottle_A_water.csv`, by its photograph: 83 mm outside, body to 121 and shoulder to 181 of
/// 214 mm, a neck whose bore and one wall are 39 mm, 314 g; nominally 750 ml.
pub const BOTTLE_A: &str = "name = \"A\"\nbody_diameter_mm = 83\nbody_length_mm = 121\nshoulder_length_mm = 60\n\
    height_mm = 214\nmouth_bore_mm = 36\nneck_bore_mm = 36\nmass_g = 314\nlip_wall_mm = 3";

/// A bottle of glass that can be sounded every way but pumped up, and one of plastic that can be pumped up.
pub const GLASS: &str = "name = \"glass\"\nbody_diameter_mm = 72\nbody_length_mm = 150\nshoulder_length_mm = 40\n\
    height_mm = 240\nmouth_bore_mm = 19\nneck_bore_mm = 21\nwall_mm = 2.4\n";
const POP: &str = "name = \"pop\"\nmaterial = \"plastic\"\nbody_diameter_mm = 108\nbody_length_mm = 180\n\
    shoulder_length_mm = 90\nheight_mm = 300\nmouth_bore_mm = 22\nneck_bore_mm = 22\nwall_mm = 0.3\n";

/// Both, with more keys of each.
pub fn glass_and_pop(glass: &str, pop: &str) -> String {
    format!("[[bottle]]\n{GLASS}{glass}\n[[bottle]]\n{POP}{pop}\n")
}

/// Two of the glass ones, joined by a hose, with so much liquid.
pub fn joined_glass(liquid_ml: u32) -> String {
    format!(
        "[[joined]]\nname = \"pair\"\nfirst = \"glass\"\nsecond = \"glass\"\nhose_bore_mm = 6\n\
         hose_length_mm = 600\nliquid_ml = {liquid_ml}\n"
    )
}

/// A file of the presets, as in `quay/piece.mid`.
pub fn preset(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("presets")
        .join(file)
}

/// A file of published figures or of broken ones.
pub fn data(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(file)
}

/// The rows of a table of published figures, without its heading and comments.
pub fn table(file: &str) -> csv::Reader<std::fs::File> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(data(file))
        .unwrap()
}

/// The text of a file.
#[track_caller]
pub fn read(path: impl AsRef<Path>) -> String {
    let path = path.as_ref();
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The preset set in a folder of `presets/`.
pub fn set(folder: &str) -> Set {
    read_set(&read(preset(folder).join("set.toml"))).unwrap()
}

/// The preset shelf in a folder of `presets/`.
pub fn shelf(folder: &str) -> Shelf {
    read_shelf(&read(preset(folder).join("shelf.toml"))).unwrap()
}

/// A bottle with these keys and their values, its name among them.
#[track_caller]
pub fn kind(keys: &str) -> Kind {
    let shelf = read_shelf(&format!("[[bottle]]\n{keys}"));
    shelf
        .unwrap_or_else(|e| panic!("{keys}\n{e}"))
        .kinds
        .remove(0)
}

/// Both sides of a recording as one, between two times.
pub fn stretch(wav: &Wav, from_s: f64, to_s: f64) -> Vec<f32> {
    let channels = usize::from(wav.channels);
    let at = |s: f64| (s * wav.rate.hz()) as usize * channels;
    let frames = wav.samples[at(from_s)..at(to_s)].chunks_exact(channels);
    frames
        .map(|frame| frame.iter().sum::<f32>() / channels as f32)
        .collect()
}

/// A path as it is typed.
pub fn arg(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A folder for one test, deleted at its end.
pub struct Folder(tempfile::TempDir);

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Where a file of this name stands or would stand.
    pub fn at(&self, name: impl AsRef<Path>) -> PathBuf {
        self.path().join(name)
    }

    /// Writes a file.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.at(name);
        std::fs::write(&path, content).unwrap();
        path
    }

    /// How many files and folders it holds.
    pub fn count(&self) -> usize {
        std::fs::read_dir(self.path()).unwrap().count()
    }
}
