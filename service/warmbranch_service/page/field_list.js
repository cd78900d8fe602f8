// The fields of step 1, in the order in which they are asked.

import { say, unitOf } from "./units.js";

const PLACES = ["on a bench", "under a standing car", "under a moving car", "under a moving car, sheltered", "in a tunnel beside the exhaust", "in an engine room"];
const taken = () => `${say("length", 1.5, unitOf("length") === "in" ? 3 : 1)} if empty`;

export const TUBE = [
  { path: "case.branch.outside_diameter_mm", label: "Outside diameter", kind: "length", help: "Of the branch’s tube, over the metal." },
  { path: "case.branch.wall_thickness_mm", label: "Wall thickness", kind: "length", hint: taken, help: "Of the tube; 16 ga may be typed." },
  { path: "case.branch.material", label: "Metal", kind: "choice", choices: [["stainless 304", "stainless 304"]], help: "What the tube is made of." },
  { path: "case.branch.surface", label: "Its skin", kind: "choice", choices: [["", "usual for it"]], help: "How it looks outside: sets what it radiates." },
];

export const MORE_TUBE = [
  { path: "case.branch.rise_deg", label: "Rise to the cap", kind: "angle", hint: "0", help: "0 level, 90 upright, negative when it falls." },
  { path: "case.branch.mouth_angle_deg", label: "Angle to the main pipe", kind: "angle", hint: "90", help: "90 stands square, less leans downstream." },
  { path: "case.branch.cap_thickness_mm", label: "Cap plate", kind: "length", hint: "as the wall", help: "Thickness of the plate at the end." },
  { path: "case.branch.wrap.thickness_mm", label: "Wrap thickness", kind: "length", hint: "bare", help: "Insulation round the branch; empty when bare.", after: wrapTogether },
  { path: "case.branch.wrap.conductivity_W_mK", label: "Wrap conductivity", kind: "conductivity", hint: "0.09", help: "As fitted; exhaust tape is about 0.09." },
];

export const LENGTH = {
  path: "case.branch.length_mm",
  label: "Length",
  kind: "length",
  help: "Of a straight branch, from the main pipe’s inner wall to the cap’s inner face.",
};

export const PIPE = [
  { path: "case.main_pipe.outside_diameter_mm", label: "Outside diameter", kind: "length", help: "Of the main pipe where the branch stands." },
  { path: "case.main_pipe.wall_thickness_mm", label: "Wall thickness", kind: "length", hint: taken, help: "Of the main pipe." },
];

export const MORE_PIPE = [
  { path: "case.main_pipe.mass_flow_kg_h", label: "Gas flow", kind: "flow", hint: "worked out", help: "Through the pipe; empty: from the engine, or assumed." },
  { path: "case.main_pipe.gas.fuel", label: "Fuel", kind: "choice", choices: [["petrol", "petrol"]], help: "What was burnt; it sets the speed of sound." },
  { path: "case.main_pipe.gas.excess_air_ratio", label: "Air over need (λ)", kind: "number", hint: "1", help: "1 for petrol, 1.5 to 4 for diesel." },
  { path: "case.main_pipe.surface", label: "Pipe’s surface", kind: "choice", choices: [["", "usual for it"]], help: "How it looks outside." },
];

export const GAS = {
  load: [
    {
      path: "case.main_pipe.engine_load",
      label: "While it drones, the engine is",
      kind: "choice",
      choices: [["cruise", "cruising, or half loaded"], ["idle", "idling, or unloaded"], ["hard", "working hard"]],
      help: "A wide guess; the length is as unsure.",
    },
  ],
  skin: [
    { path: "case.main_pipe.skin_reading.displayed_degC", label: "Shown on the pipe", kind: "temperature", help: "Warm, at the speed that drones, where the branch is or will be." },
    { path: "case.main_pipe.skin_reading.surface", label: "Looked at", kind: "choice", choices: [["", "the pipe’s own skin"], ["matt black paint", "matt black paint"]], help: "A dab of matt black paint is read far better than bare metal." },
    { path: "case.main_pipe.skin_reading.thermometer", label: "Thermometer", kind: "choice", choices: [["", "infrared"], ["contact", "touching"]], help: "Infrared is the usual one." },
    { path: "case.main_pipe.skin_reading.emissivity_set", label: "Set to ε", kind: "number", hint: "0.95", help: "Most are fixed at 0.95." },
  ],
  gas: [
    { path: "case.main_pipe.gas_temperature_degC", label: "Gas temperature", kind: "temperature", help: "From a probe in the gas, not from the pipe’s skin." },
  ],
};

const HALF = { path: "drone_half_width_rpm", label: "Drone’s half width", kind: "rpm", hint: "100", help: "How far up and down it is heard; only drawn." };

export const TARGET = {
  rpm: [{ path: "target_rpm", label: "It drones at", kind: "rpm", help: "Engine speed that is to fall quiet." }],
  hertz: [{ path: "target_Hz", label: "It drones at", kind: "hertz", help: "As a phone’s spectrum shows it: the highest peak." }],
  road: [
    { path: "road.road_speed_m_s", label: "It drones at", kind: "road", help: "Road speed." },
    { path: "road.gear_ratio", label: "Gear’s ratio", kind: "number", help: "Engine turns for one of the gearbox’s output, such as 0.82." },
    { path: "road.final_drive_ratio", label: "Final drive", kind: "number", help: "Such as 4.06." },
    { path: "road.tyre", label: "Tyre", kind: "text", hint: "205/55 R16", help: "As it stands on its side." },
  ],
  loudness: [
    { path: "loudness", label: "Engine speed and level", kind: "lines", hint: "1500 66\n2350 78\n3500 70", help: "Three lines or more: rpm, then dB from any meter or phone kept in one place." },
    { path: "target_rpm", label: "Worst at", kind: "rpm", hint: "if you know it", help: "For what is measured later." },
  ],
};

export const ENGINE = [
  { path: "case.engine.cylinders", label: "Cylinders", kind: "number", help: "That fire into this pipe." },
];

export const MORE_ENGINE = [
  HALF,
  {
    path: "case.engine.cycle",
    label: "Cycle",
    kind: "choice",
    choices: [["", "four-stroke"], ["two-stroke", "two-stroke"]],
    help: "Most engines are four-strokes.",
  },
  { path: "case.engine.order", label: "Engine order", kind: "number", hint: "firing order", help: "Cycles of the tone in one turn of the crankshaft." },
  { path: "case.engine.displacement_L", label: "Displacement", kind: "volume", help: "With the next two, stands in for the gas flow." },
  { path: "case.engine.rpm", label: "Engine speed", kind: "rpm", help: "To which the flow belongs." },
  { path: "case.engine.volumetric_efficiency", label: "Filling", kind: "number", hint: "0.3 to 0.9", help: "Air drawn over displacement; 0.3 at part throttle." },
];

export const AIR = [
  { path: "case.surroundings.air_temperature_degC", label: "Air temperature", kind: "temperature", hint: () => say("temperature", 20), help: "Near the branch, not the forecast’s." },
  { path: "case.surroundings.air_speed_m_s", label: "Air speed", kind: "speed", hint: "0", help: "Across the branch; 60 mph may be typed." },
];

export const MORE_AIR = [
  { path: "case.surroundings.pressure_kPa", label: "Air pressure", kind: "pressure", hint: "101.325", help: "Lower in the hills: 90 at 1000 m." },
  { path: "case.surroundings.relative_humidity_percent", label: "Humidity", kind: "percent", hint: "50", help: "Of the air that the engine draws." },
  { path: "case.surroundings.place", label: "Where it is", kind: "choice", choices: [["", "not said"], ...PLACES.map((name) => [name, name])], help: "Stands for air that was not measured." },
  { path: "case.surroundings.rear.from_mm", label: "Other air from", kind: "length", hint: "nowhere", help: "From the mouth, where wind or shelter begins.", after: onlyWith("rear", "from_mm") },
  { path: "case.surroundings.rear.air_speed_m_s", label: "Air speed there", kind: "speed", hint: "0", help: "Across the rear, up to the cap.", after: onlyWith("rear", "from_mm") },
  { path: "case.surroundings.rear.air_temperature_degC", label: "Air temperature there", kind: "temperature", hint: "as in front", help: "Near the rear.", after: onlyWith("rear", "from_mm") },
  { path: "case.surroundings.hot_neighbour.temperature_degC", label: "Hot neighbour", kind: "temperature", hint: "none", help: "What the branch faces, such as the exhaust beside it.", after: onlyWith("hot_neighbour", "temperature_degC", ["view_share", 0.1]) },
  { path: "case.surroundings.hot_neighbour.view_share", label: "It takes", kind: "number", hint: "0.1", help: "Of all that the skin faces: 0.5 a plate beside it, 0.08 a pipe as thick.", after: onlyWith("hot_neighbour", "temperature_degC") },
  { path: "case.surroundings.shield.diameter_mm", label: "Shield, inside", kind: "length", hint: "none", help: "Diameter of a sheet around the branch.", after: onlyWith("shield", "diameter_mm") },
];

// A part without what it must have is none; with it, what it must have besides is the usual.
function onlyWith(part, must, usual) {
  return (job) => {
    const around = job.case.surroundings;
    const given = around?.[part];
    if (given && given[must] == null) delete around[part];
    else if (given && usual && given[usual[0]] == null) given[usual[0]] = usual[1];
  };
}

function wrapTogether(job) {
  const wrap = job.case.branch.wrap;
  if (wrap && wrap.thickness_mm == null) delete job.case.branch.wrap;
  else if (wrap && wrap.conductivity_W_mK == null) wrap.conductivity_W_mK = 0.09;
}
