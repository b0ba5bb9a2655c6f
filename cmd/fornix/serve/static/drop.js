// Dropping and choosing scans, on the list and on a case.
import { send, notice } from './app.js';

const zone = document.getElementById('drop');
const chosen = document.getElementById('files');
const list = document.getElementById('uploads');

// dropped sends files on their way: to this case, to one new case, or to a case each, and then calls
// then with the case that the last one came to and how many cases there are.
export function dropped(then) {
	const go = (files) => take([...files], then);
	chosen.addEventListener('change', () => {
		go(chosen.files);
		chosen.value = '';
	});
	let inside = 0;
	const here = (e) => e.dataTransfer && [...e.dataTransfer.types].includes('Files');
	document.addEventListener('dragenter', (e) => {
		if (here(e)) {
			inside++;
			zone.classList.add('over');
		}
	});
	document.addEventListener('dragleave', (e) => {
		if (here(e) && --inside <= 0) {
			inside = 0;
			zone.classList.remove('over');
		}
	});
	document.addEventListener('dragover', (e) => here(e) && e.preventDefault());
	document.addEventListener('drop', (e) => {
		if (!here(e)) {
			return;
		}
		e.preventDefault();
		inside = 0;
		zone.classList.remove('over');
		go(e.dataTransfer.files);
	});
}

async function take(files, then) {
	if (files.length === 0) {
		return;
	}
	notice();
	const most = Number(zone.dataset.most);
	let into = zone.dataset.case || '';
	const together = into !== '' || files.length <= 2;
	let last, cases = 0;
	for (const file of files) {
		if (!/\.((stl|ply|obj)(\.gz)?|zip)$/i.test(file.name)) {
			notice(`${file.name} is no STL, PLY or OBJ file.`);
			continue;
		}
		if (file.size > most) {
			notice(`${file.name} is larger than ${Math.floor(most / 1048576)} MiB.`);
			continue;
		}
		const line = lineOf(file.name);
		try {
			const at = await send(into ? `/case/${into}/scan` : '/scan', file, line.told);
			line.gone();
			last = at;
			if (!into) {
				cases++;
			}
			if (together) {
				into = String(at.case);
			}
		} catch (err) {
			line.failed(err.message);
		}
	}
	if (last) {
		then(last, cases);
	}
}

// lineOf shows one file on its way.
function lineOf(name) {
	const li = document.createElement('li');
	const bar = document.createElement('progress');
	bar.max = 1;
	bar.value = 0;
	bar.setAttribute('aria-label', `${name}: copying`);
	li.append(name, bar);
	list.append(li);
	return {
		told: (share) => { bar.value = share; },
		gone: () => li.remove(),
		failed: (why) => {
			bar.remove();
			li.className = 'bad';
			li.textContent = `${name}: ${why}`;
		},
	};
}
