/** Everything on a maker's own computer belongs to this owner; each account of a hosted server has its own. */
export const LOCAL_OWNER = '00000000-0000-4000-8000-000000000000';
